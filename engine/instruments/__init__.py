"""The gear's own memory: who is there, what a dump holds, how it is kept and sent. Pure: no trio, no driver."""
