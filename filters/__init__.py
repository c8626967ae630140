"""The filters: what can happen to a message on its way. One module per filter.

`registry` has the contract and finds the filters; see DEVELOPERS.md, "How to add a filter".
"""
