"""Handing a record over: packages and papers that outlive the program, and reading them again."""
