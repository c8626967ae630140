"""The bayleaf command."""
