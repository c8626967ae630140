"""What strangers, guests, broken machines and hostile files do: attacks, mutated input, kills during saves."""
