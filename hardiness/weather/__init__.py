"""From readings to exposures: what the cold was, and which plants met it.

``clean``, ``gaps`` and ``series`` ready one sensor's readings and say which gaps are bridged; ``freezes`` holds the
definition of a freeze; ``line``, ``held`` and ``exposure`` measure freezes along the straight line between readings;
``events`` makes the freezes table of a whole trial; ``placing`` says which sensor speaks for which plant, and so what
each plant met.
"""
