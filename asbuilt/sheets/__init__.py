"""Sheets: a face, a plan or a schedule drawn once, then written as SVG, PDF or DXF."""
