"""Commissioning: steps as data, answers judged, a record that can be left and taken up again."""
