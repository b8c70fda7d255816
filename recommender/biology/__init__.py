"""3 variety x climate: the rules of the trade as functions."""
