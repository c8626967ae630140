"""The same core without a show: explain, and later rehearse."""
