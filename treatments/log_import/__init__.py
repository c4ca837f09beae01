"""Imports a shop's treatment log: reads the file, stages its rows by vehicle on disk, and records whole vehicles."""
