"""Instruments, their calibrations, and reference checks at the nozzle."""
