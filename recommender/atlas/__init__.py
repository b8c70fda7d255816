"""Many sites at once: the scores of every variety at every place, kept as Parquet and asked with SQL."""
