"""Is it worth it? The season with the store against what else could be done with the money."""
