"""Beat clock, time code and the scenes that time code recalls."""
