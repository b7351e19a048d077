"""The computation: numbers in, numbers out.

Nothing in here imports Django, a database, a clock or the network, so that the command that reads a file
and the page that reads a database cannot disagree.
"""
