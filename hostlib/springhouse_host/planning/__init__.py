"""Charging for tomorrow: a plan from forecast and prices, tried in the full plant first."""
