# The served form of Testround: one image for the web process, the workers and the clock.
FROM python:3.12-slim-bookworm

ENV PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    UV_COMPILE_BYTECODE=1 \
    UV_LINK_MODE=copy \
    UV_PROJECT_ENVIRONMENT=/opt/venv \
    PATH=/opt/venv/bin:$PATH

RUN pip install --no-cache-dir "uv>=0.8"

WORKDIR /app
# The dependencies alone first: they change less often than the program.
COPY pyproject.toml uv.lock README.md ./
RUN uv sync --locked --no-dev
COPY manage.py ./
COPY testround testround
COPY templates templates

# Style sheets and scripts are gathered into the image; the key is for this step only.
ENV TESTROUND_STATIC=/app/static
RUN SECRET_KEY=for-gathering-static-files-only ALLOWED_HOSTS=build TESTROUND_SERVED=true TESTROUND_OUTBOX=inline \
    python manage.py collectstatic --noinput

# A group of that number as well: Celery takes whoever belongs to none for root.
RUN groupadd --gid 10001 testround && useradd --uid 10001 --gid 10001 --create-home testround \
    && mkdir -p /app/var && chown testround:testround /app/var
USER testround
# Nothing is written but here and under /tmp: everything else can be read-only.
VOLUME /app/var
ENV TESTROUND_BIND=0.0.0.0:8000
EXPOSE 8000
STOPSIGNAL SIGTERM
# Whether the process lives; asked under a name that the program answers to, for it refuses all others.
HEALTHCHECK --interval=30s --timeout=5s --start-period=20s \
    CMD ["python", "-m", "testround.asked", "/healthz"]
CMD ["gunicorn", "--config=python:testround.serving", "testround.wsgi:application"]
