"""A served installation with people in it: how fast it answers, whether it loses anything, and whether it grows.

``python -m tests.load`` plays rounds, ``python -m tests.load.memory`` watches the memory of a web process. Both start
gunicorn themselves, on this machine's own address alone, for the database of ``DATABASE_URL`` (filled by ``manage.py
populate``) and the Redis of ``REDIS_URL``, and end it again.
"""
