"""The one settings file. Everything a clinic may choose is an environment variable, read strictly."""

import secrets
from importlib.util import find_spec
from pathlib import Path

from csp.constants import NONE, SELF

from clinic.project.env import Environment

env = Environment()
BASE_DIR = Path(__file__).resolve().parent.parent.parent

# ---- which installation is this -------------------------------------------------------------------------
QUARTERDAY_MODE = env.choice("QUARTERDAY_MODE", "clinic", ("clinic", "demo"))
DEMO = QUARTERDAY_MODE == "demo"
DEBUG = env.flag("DEBUG", False)
SECRET_KEY = env.text(
    "SECRET_KEY",
    secrets.token_urlsafe(50) if DEMO else None,
    why="Make one with: python3 -c 'import secrets; print(secrets.token_urlsafe(50))' and keep it.",
)
ALLOWED_HOSTS = env.names(
    "ALLOWED_HOSTS",
    "127.0.0.1,localhost" if DEMO or DEBUG else None,
    why="Say the names under which staff reach the clinic, such as recalls.example.org.",
)
DATA_DIR = Path(env.text("DATA_DIR", str(BASE_DIR / "var" / "demo" if DEMO else BASE_DIR / "var"))).resolve()
DATA_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)
PRIVATE_FILES = DATA_DIR / "pictures"

# ---- parts ---------------------------------------------------------------------------------------
INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "clinic.apps.ClinicConfig",
    "lesions.apps.LesionsConfig",
    "scheduling.apps.SchedulingConfig",
    "clinic.project.apps.ProjectConfig",
    # Brings the templates of Django's own widgets, which our form renderer looks for among the apps: ours come first.
    "django.forms",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    # Serves the style sheet and scripts where no other server does; before it only what makes an answer safe.
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # A view that forgot its guard is closed, not open.
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "clinic.project.middleware.IdleTimeout",
    "clinic.project.middleware.MergedAwayRecord",
    "clinic.project.middleware.CountsAfterAnAct",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "clinic.project.urls"
WSGI_APPLICATION = "clinic.project.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "clinic.project.context.desk",
            ],
        },
    },
]
FORM_RENDERER = "clinic.project.form_renderer.ClinicForms"

# ---- data ----------------------------------------------------------------------------------------
SQLITE = {
    "ENGINE": "django.db.backends.sqlite3",
    "NAME": DATA_DIR / "quarterday.sqlite3",
    # A kept connection halves the time of a list; IMMEDIATE takes the write lock at BEGIN and so waits
    # for it, where DEFERRED would fail at once with "locked" (410 of 900 writes, measured).
    "CONN_MAX_AGE": None,
    "OPTIONS": {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    },
}
POSTGRES = {} if DEMO else env.postgres("DATABASE_URL")
POOLED = find_spec("psycopg_pool") is not None
POSTGRES_OPTIONS: dict[str, object] = {
    # PostgreSQL compiles a question of many parts before it runs it, for longer than it runs: one place of the count
    # among 100,000 patients took 1.4 s, and 0.07 s without (measured).
    "options": "-c jit=off",
    **({"pool": {"min_size": 1, "max_size": 6, "timeout": 10}} if POOLED else {}),
}
DATABASES = {
    "default": {
        "ENGINE": "django.db.backends.postgresql",
        "CONN_MAX_AGE": 0 if POOLED else 60,
        "CONN_HEALTH_CHECKS": not POOLED,
        "OPTIONS": POSTGRES_OPTIONS,
        **POSTGRES,
    }
    if POSTGRES
    else SQLITE
}

# A picture is at most 25 MB; the form round it is small. Files above 2.5 MB go to disk while they arrive.
PICTURE_MAX_BYTES = 25 * 1024 * 1024
# A JPEG is read at a reduced scale; anything else is decoded whole. Reading has its own process, which may
# use this memory (Linux; elsewhere only the time is limited).
PICTURE_MAX_MEGAPIXELS = env.number("PICTURE_MAX_MEGAPIXELS", 80, low=1, high=150)
PICTURE_MAX_MEGAPIXELS_DECODED = env.number("PICTURE_MAX_MEGAPIXELS_DECODED", 40, low=1, high=150)
PICTURE_MEMORY_MB = env.number("PICTURE_MEMORY_MB", 512, low=128, high=8192)
PICTURE_SECONDS = env.number("PICTURE_SECONDS", 20, low=1, high=60)
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 500
DATA_UPLOAD_MAX_NUMBER_FILES = 20
FILE_UPLOAD_PERMISSIONS = 0o600
FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o700

STATIC_URL = "/static/"
STATIC_ROOT = Path(env.text("STATIC_ROOT", str(DATA_DIR / "static")))
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": PRIVATE_FILES},
    },
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}

# ---- language and time ---------------------------------------------------------------------------
# English is the source; another language is a folder of its own with the catalogue (docs/operating.md).
LANGUAGE_CODE = env.text("LANGUAGE_CODE", "en-gb")
LOCALE_PATHS = [DATA_DIR / "locale"]
TIME_ZONE = env.zone("TIME_ZONE", "Europe/Dublin")
USE_TZ = True
PUBLIC_HOLIDAYS = env.country("PUBLIC_HOLIDAYS")
USE_I18N = True

# ---- how lesions are looked at ---------------------------------------------------------------------
# Until then the carers of a minor are rung (clinic setting, no source).
AGE_OF_MAJORITY = env.number("AGE_OF_MAJORITY", 18, low=14, high=25)
# So many of a hundred lesions inside every limit stand among the flagged, and are looked at before their figures.
MIXED_IN_PERCENT = env.number("MIXED_IN_PERCENT", 5, low=0, high=100)

# ---- who may come in -----------------------------------------------------------------------------
AUTH_USER_MODEL = "clinic.Member"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "clinic.project.backends.ClinicBackend",
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "login"
_VALIDATION = "django.contrib.auth.password_validation"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": f"{_VALIDATION}.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("username", "name")},
    },
    {"NAME": f"{_VALIDATION}.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": f"{_VALIDATION}.CommonPasswordValidator"},
    {"NAME": f"{_VALIDATION}.NumericPasswordValidator"},
]
SESSION_COOKIE_AGE = 60 * env.number("SESSION_IDLE_MINUTES", 30, low=1, high=720)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_NAME = "quarterday_demo" if DEMO else "quarterday"

BEHIND_PROXY = env.flag("BEHIND_PROXY", False)
AXES_FAILURE_LIMIT = 5
# A quarter of an hour: long for somebody who guesses, short for a nurse with a patient waiting.
AXES_COOLOFF_TIME = 0.25  # hours
# The pair of both: by name alone anybody could lock a nurse out, by address alone one typo would lock the clinic.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "registration/locked.html"
AXES_CLIENT_IP_CALLABLE = "clinic.project.middleware.client_address"
AXES_VERBOSE = False

# ---- what a browser is told ----------------------------------------------------------------------
OVER_TLS = not DEBUG and not DEMO
SECURE_SSL_REDIRECT = OVER_TLS
# The monitor and the container ask from inside, without TLS.
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if OVER_TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = OVER_TLS and env.flag("HSTS_SUBDOMAINS", False)
SECURE_HSTS_PRELOAD = SECURE_HSTS_INCLUDE_SUBDOMAINS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_PROXY else None
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = OVER_TLS
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "connect-src": [SELF],
        "font-src": [SELF],
        "form-action": [SELF],
        # A chosen picture is shown before it is sent, from the browser's memory.
        "img-src": [SELF, "blob:"],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "object-src": [NONE],
    }
}

# ---- background work -----------------------------------------------------------------------------
# The database row is the job; a broker only passes the word on. "database" means that no broker is there
# and `manage.py work` looks at the rows itself. The demo's launcher starts a broker and says where.
_BROKER = env.url(
    "QUARTERDAY_BROKER_URL" if DEMO else "REDIS_URL", ("redis", "rediss", "unix"), "redis://127.0.0.1:6379/0"
)
QUARTERDAY_QUEUE = env.choice(
    "QUARTERDAY_QUEUE", "celery" if _BROKER else "database", ("celery", "database", "none")
)
# After this silence a process, or a kind of work that gets nowhere, counts as standing still.
SILENT_MINUTES = env.number("SILENT_MINUTES", 5, low=2, high=120)
STANDSTILL_MINUTES = env.number("STANDSTILL_MINUTES", 10, low=2, high=240)
CELERY_BROKER_URL = _BROKER or "memory://"
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    # Without these three a page waits six seconds for a broker that is down (measured); with them half a
    # second once, then nothing.
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0.1,
    # A message of a killed worker comes back after about this many seconds. Kombu's own pace looks only
    # every 100 s.
    "visibility_timeout": 120,
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
}
# A message counts as done when the work is: a worker that dies in between gives it back, and work may run twice.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_IGNORE_RESULT = True
# One at a time: a long measurement must not hold a short one in its hand.
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TASK_SERIALIZER = CELERY_RESULT_SERIALIZER = CELERY_EVENT_SERIALIZER = "json"
# Never pickle: whoever can write to the broker could then run programs here.
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TIMEZONE = TIME_ZONE
CELERY_TASK_DEFAULT_QUEUE = "quick"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")
CELERY_BEAT_SCHEDULE = {
    "sweep": {"task": "clinic.tasks.sweep", "schedule": 10.0, "options": {"expires": 10}},
    "chores": {"task": "clinic.tasks.chores", "schedule": 60.0, "options": {"expires": 60}},
}

# ---- what is said --------------------------------------------------------------------------------
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {
        "handlers": ["stderr"],
        "level": env.choice("LOG_LEVEL", "INFO", ("DEBUG", "INFO", "WARNING", "ERROR")),
    },
    "loggers": {
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "django.server": {"handlers": [], "level": "INFO", "propagate": True},
        "axes": {"level": "WARNING"},
    },
}
