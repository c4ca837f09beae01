"""The pages of the desk, a module per subject. A page reads its input, asks one query or service, and shows it."""
