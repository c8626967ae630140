"""Faults put into the source on purpose, one at a time: does a test notice each of them?"""
