"""The demo: an invented shop whose records are laid relative to the day on which it is loaded."""
