"""One file a part. Integer results and fault codes; a part that fails never raises."""
