"""2 weather -> what a tree feels. No knowledge of varieties: plain arrays in, plain arrays out."""
