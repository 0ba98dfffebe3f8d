"""Many records: a folder of buildings listed, searched and worked through together."""
