"""What becomes of the program when files and requests are made to hurt it.

``python -m tests.hostile media --count 5000 --seed 1`` runs mutated pictures and clips through
the scanning process that intake uses; ``plans`` runs made plan files through the reader,
``viewer`` sends bad requests to a real server. Each prints what was tried, refused and
survived. ``tests/hostile/test_hostile.py`` runs a few of each.
"""
