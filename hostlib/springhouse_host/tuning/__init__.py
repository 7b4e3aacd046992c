"""Looks for the cheapest settings and charging hours that keep every promise."""
