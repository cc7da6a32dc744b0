"""The verbs of the command line: thin doors over :mod:`hardiness.trial`."""
