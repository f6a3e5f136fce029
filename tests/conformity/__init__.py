"""Requirements of a target by a stated decision rule."""
