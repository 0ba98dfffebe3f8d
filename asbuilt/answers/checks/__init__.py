"""Rough-in checks: small rules, each with its clause, its source and three possible results."""
