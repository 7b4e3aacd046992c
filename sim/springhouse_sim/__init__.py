"""The simulated installation: the plant, the world that acts on it, and the bench."""
