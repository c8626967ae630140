"""What can happen to a message on its way: one file a filter.

`registry` holds the contract and finds the filters; see DEVELOPERS.md, "How to add a filter".
"""
