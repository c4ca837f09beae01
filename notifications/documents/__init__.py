"""The documents that people keep: frozen values in, PDF bytes out, the same bytes for the same values."""
