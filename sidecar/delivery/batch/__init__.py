"""Many files measured by several processes or machines, each kept as soon as it is measured."""
