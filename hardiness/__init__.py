"""hardiness."""
