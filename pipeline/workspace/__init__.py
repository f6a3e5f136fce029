"""A config with all it names: what a run of it is made of, and what is wrong with it before any run."""
