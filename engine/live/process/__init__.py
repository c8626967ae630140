"""The process around a running show: start, end, threads, priority."""
