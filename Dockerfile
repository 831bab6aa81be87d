FROM python:3.12-slim-bookworm AS packages
WORKDIR /packages
COPY requirements.txt ./
RUN python -m venv /opt/quarterday \
    && /opt/quarterday/bin/pip install --no-cache-dir --require-hashes --only-binary=:all: -r requirements.txt

FROM python:3.12-slim-bookworm
ENV PATH=/opt/quarterday/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    DATA_DIR=/data \
    STATIC_ROOT=/srv/static \
    OMP_NUM_THREADS=1 \
    OPENBLAS_NUM_THREADS=1 \
    MKL_NUM_THREADS=1
RUN groupadd --system --gid 10001 quarterday \
    && useradd --system --uid 10001 --gid quarterday --home-dir /data --shell /usr/sbin/nologin quarterday \
    && install -d -o quarterday -g quarterday -m 0700 /data \
    && install -d -o quarterday -g quarterday /srv/static
COPY --from=packages /opt/quarterday /opt/quarterday
WORKDIR /srv/quarterday
COPY manage.py ./
COPY clinic ./clinic
COPY lesions ./lesions
COPY scheduling ./scheduling
USER 10001:10001
# The key below lives for this one command; the real one comes from the environment at run time.
RUN SECRET_KEY=only-while-building ALLOWED_HOSTS=localhost python manage.py collectstatic --no-input
VOLUME /data
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=5s --start-period=20s \
    CMD ["python", "-m", "clinic.project.start.health_check", "http://127.0.0.1:8000/healthz?web"]
CMD ["gunicorn", "clinic.project.wsgi:application", "--bind", "0.0.0.0:8000", "--worker-class", "gthread", \
     "--workers", "2", "--threads", "4", "--worker-tmp-dir", "/dev/shm", "--no-control-socket"]
