"""The measurements behind the claims about speed. `python -m bench` makes all of them; see README.md in this folder."""
