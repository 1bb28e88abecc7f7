"""Kernels: functions compiled once on a machine, kept as machine code, and run without the compiler."""
