"""Everything that tests Bayleaf; the folders mirror the source tree, and `support` is what tests share."""
