"""What the speed claims rest on. `python -m bench` measures all of them; see README.md in this folder."""
