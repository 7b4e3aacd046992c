"""One file a board: pins and limits, nothing else."""
