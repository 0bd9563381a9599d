"""The shared kernel: what a station, a reading, a procedure and a weld are.

Pure: no I/O and no clock; the caller passes time. Imports no sibling package.
"""
