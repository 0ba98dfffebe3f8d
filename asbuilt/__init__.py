"""asbuilt: a measured record of what is inside the walls."""

__version__ = "0.1.0"
