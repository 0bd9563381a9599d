"""Readings stores behind the `ReadingsStore` port."""
