"""All tests of Bayleaf; the folders mirror the source tree, and `support` is shared by the tests."""
