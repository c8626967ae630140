"""More than one machine: links, what goes over them, and ports that are plugged in elsewhere.

Between `engine.live` and `engine.core`. zenoh is imported by `link` alone, and only by a rig with a `[network]`.
"""
