"""From observations to tolerance floors: the model, its posterior, and the answers drawn from it."""
