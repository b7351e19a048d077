"""What a large database costs: every page and every chore, beside the same ones in a small database.

Both databases are filled by ``manage.py populate``, so that they hold rounds of the same sizes and differ in how many
there are. ``python -m tests.large`` asks for the same page now here, now there, each in a process of its own.
"""
