"""What keeps the service running: backups, restoring them, and whether all is well."""
