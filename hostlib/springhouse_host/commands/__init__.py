"""One module a command; each has a function ``register(app)``. See ``cli.build_app``."""
