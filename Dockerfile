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

RUN useradd --system --create-home testround && mkdir -p /app/var && chown testround /app/var
USER testround
EXPOSE 8000
# Asked under a name that the program answers to, for it refuses all others.
HEALTHCHECK --interval=30s --timeout=5s --start-period=20s \
    CMD ["python", "-c", "import os, urllib.request as r; host = os.environ.get('ALLOWED_HOSTS', '').split(',')[0].strip(' .*') or '127.0.0.1'; r.urlopen(r.Request('http://127.0.0.1:8000/healthz', headers={'Host': host}), timeout=4)"]
CMD ["gunicorn", "testround.wsgi:application", "--bind=0.0.0.0:8000", "--workers=3", "--threads=4", "--max-requests=2000", "--max-requests-jitter=200", "--access-logfile=-"]
