"""Several varieties together: which set to plant, where each tree stands, when and how it is planted."""
