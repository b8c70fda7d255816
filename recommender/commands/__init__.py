"""The verbs of the command line, one thin wrapper per library verb."""
