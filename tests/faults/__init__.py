"""What becomes of a record when things go wrong: killed, cut off, full, read-only, torn, at once, out of time.

``python -m tests.faults all --seed 1`` runs every trial and prints what was tried and what came of
it; ``python -m tests.faults kills --count 200 --seed 7`` one kind. Each trial draws from the
seed and its own number alone, so that one that fails can be run again by itself:
``--only NUMBER``. ``tests/faults/test_faults.py`` runs a few of each.
"""
