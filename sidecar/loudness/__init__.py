"""Pure arithmetic on 100 ms energies: gated loudness, statistics, limits."""
