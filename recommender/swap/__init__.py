"""The swap table: offers and requests in, who gets which plant out, each match with its reason."""
