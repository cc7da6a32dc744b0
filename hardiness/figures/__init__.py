"""Figures: numbers are prepared first, then drawn; one look for screen and paper."""
