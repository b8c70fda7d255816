"""1 evidence -> DuckDB: what is known of each variety, by whom, how sure."""
