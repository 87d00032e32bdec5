"""Steps that bring a database from one schema to the next."""
