"""Proofs that take a while: run by a command of their own, they print a table with their figure last."""
