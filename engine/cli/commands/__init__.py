"""The commands of `bayleaf`, each in the module of its name."""
