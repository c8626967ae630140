"""The models of a rig file: its tables, keys and values, and the references between them."""
