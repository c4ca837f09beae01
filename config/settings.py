"""All settings. The size of the installation is chosen by DATABASE_URL, CELERY_BROKER_URL and EMAIL_URL alone.

Without them: one SQLite file in WAL mode, tasks as files in VAR_DIR, and mail written as .eml files.
"""

import os
import secrets
import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import environ
from celery.schedules import crontab
from django.core.exceptions import ImproperlyConfigured

env = environ.Env()

BASE_DIR = Path(__file__).resolve().parent.parent
FIXTURES_DIR = BASE_DIR / "fixtures"
# An installed package has no project folder to write to; the folder in which a command is called takes its place.
PROJECT_DIR = BASE_DIR if (BASE_DIR / "manage.py").exists() else Path.cwd()
VAR_DIR = Path(env.str("VAR_DIR", default=str(PROJECT_DIR / "var")))
VAR_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)

DEBUG = env.bool("DEBUG", default=False)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
SITE_URL = env.str("SITE_URL", default="http://127.0.0.1:8000").rstrip("/")


def read_kept_secret(variable: str, name: str) -> str:
    """Return a variable of the environment, or a random secret kept in VAR_DIR, where only its owner reads it."""
    given: str = env.str(variable, default="")
    if given:
        return given
    path = VAR_DIR / name
    if not path.exists():
        # Written aside and put in place at once, so that no other process reads half of it. It is made with mode 0600.
        handle, written = tempfile.mkstemp(dir=VAR_DIR)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(50))
        try:
            os.link(written, path)
        except FileExistsError:
            pass
        finally:
            Path(written).unlink()
    key = path.read_text(encoding="ascii").strip()
    if not key:
        raise ImproperlyConfigured(f"{path.name} in VAR_DIR is empty: delete it, or set {variable}.")
    return key


# Without a variable: kept in a file, so that logins and signed links outlive a restart.
SECRET_KEY = read_kept_secret("SECRET_KEY", "secret_key")
# Those before it, the newest first: what was signed with them, such as the links in mails, still opens.
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
# In the full size several processes, maybe on several machines, must have the same one: none may come upon its own.
LOG_KEY_IS_SET = bool(env.str("LOG_KEY", default=""))
# The key of the event log first, then those before it, the newest first. It must not lie in the database or its
# backup: whoever has both can write the log anew.
LOG_KEYS = [read_kept_secret("LOG_KEY", "log_key"), *env.list("LOG_KEY_FALLBACKS", default=[])]
# Where the log stood each night. Best on another machine's disk: it shows what a database that was put back does not.
LOG_CHECKPOINTS = env.str("LOG_CHECKPOINTS", default=str(VAR_DIR / "checkpoints" / "log.txt"))

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.humanize",
    "django.contrib.messages",
    "django.contrib.sessions",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "csp",
    "django_filters",
    "django_htmx",
    "rest_framework",
    "rest_framework.authtoken",
    "axes",
    "django_otp",
    "django_otp.plugins.otp_totp",
    "django_otp.plugins.otp_static",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "treatments",
    "scheduling",
    "claims",
    "notifications",
    "desk",
    "api",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "desk.shared.access.refuse_odd_addresses",
    "desk.shared.faults.AnswerWhatCannotBeComputed",
    "treatments.reference.cache.look_at_reference_once",
    "desk.people.log_in_limits.ask_for_codes_to_be_set_up",
    "axes.middleware.AxesMiddleware",
]

# A treatment of a vehicle with every zone and two coats on each is one form of about 1,200 fields.
DATA_UPLOAD_MAX_NUMBER_FIELDS = 4000

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
AUTH_USER_MODEL = "treatments.User"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    # Of the administration pages and the mails.
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
            # The filter ``date`` as French writes days, in English as Django does.
            "builtins": ["desk.templatetags.desk_dates"],
        },
    },
    # Of the desk's pages.
    {
        "BACKEND": "django.template.backends.jinja2.Jinja2",
        "APP_DIRS": True,
        "OPTIONS": {
            "environment": "desk.rendering.environment.make_environment",
            "context_processors": [
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "desk.rendering.frame.describe_frame",
            ],
        },
    },
]

# Django brings its form widgets in both languages; a page by the lift has hundreds, and Jinja2 writes them faster.
FORM_RENDERER = "desk.forms.form_renderer.FormRenderer"


def read_database() -> dict[str, Any]:
    """Return the database settings: DATABASE_URL, else one SQLite file that holds under concurrent writers."""
    database: dict[str, Any] = env.db_url("DATABASE_URL", default=f"sqlite:///{VAR_DIR / 'shop.sqlite3'}")
    if database["ENGINE"] == "django.db.backends.sqlite3":
        database["OPTIONS"] = {
            # A write transaction takes the lock at its start, so that a check inside it still holds at its end.
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
        }
        # Tests use a file too: one in memory knows neither WAL nor a second process.
        database["TEST"] = {"NAME": str(VAR_DIR / "test.sqlite3")}
    else:
        database.setdefault("CONN_MAX_AGE", 60)
        database["CONN_HEALTH_CHECKS"] = True
    return database


DATABASES = {"default": read_database()}

SESSION_ENGINE = "config.sessions"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "desk.people.backends.Backend"]
# So many wrong passwords of one person from one address, and the next log-in there waits. ``manage.py axes_reset`` ends
# every lock at once, ``axes_reset_username NAME`` those of one person.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = env.int("LOG_IN_FAILURES", default=5)
AXES_COOLOFF_TIME = timedelta(minutes=env.int("LOG_IN_LOCKED_MINUTES", default=15))
AXES_RESET_ON_SUCCESS = True
# Tried again meanwhile, a lock is not made longer: a stranger could keep somebody out for ever.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False
AXES_CLIENT_IP_CALLABLE = "desk.shared.addresses.find_client_address"
AXES_LOCKOUT_CALLABLE = "desk.people.log_in_limits.answer_locked"
# From one address, whatever the names that are tried.
LOG_INS_OF_AN_ADDRESS = env.str("LOG_INS_OF_AN_ADDRESS", default="300/hour")
# Of printed documents, by the code on them, from one address.
DOCUMENT_CHECKS_OF_AN_ADDRESS = env.str("DOCUMENT_CHECKS_OF_AN_ADDRESS", default="60/minute")
# Roles that log in with a one-time code, e.g. "owner,warranty_administrator". Everybody else may.
LOG_IN_CODES_REQUIRED_OF = env.list("LOG_IN_CODES_REQUIRED_OF", default=[])
LOG_IN_CODES_ISSUER = env.str("LOG_IN_CODES_ISSUER", default="Rust protection record")
# The administration pages show no secret of an app for codes.
OTP_ADMIN_HIDE_SENSITIVE_DATA = True
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "desk:log_in"
LOGIN_REDIRECT_URL = "desk:home"
LOGOUT_REDIRECT_URL = "desk:log_in"
CSRF_FAILURE_VIEW = "desk.shared.views.refuse_form"

LANGUAGE_CODE = "en"
# Numbers are not grouped everywhere (USE_THOUSAND_SEPARATOR), since that would also split keys in addresses and forms;
# a template groups a count by floatformat:"0g".
LANGUAGES = [("en", "English"), ("fr", "français")]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"  # stored and computed in UTC; shown in the site's own zone

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
# Static files are found inside the apps, so that the demo needs no collecting step.
WHITENOISE_USE_FINDERS = True
MEDIA_ROOT = VAR_DIR / "media"
DOCUMENTS_DIR = VAR_DIR / "documents"

if env.str("EMAIL_URL", default=""):
    vars().update(env.email_url("EMAIL_URL"))
else:
    EMAIL_BACKEND = "notifications.mail.mail_files.EmlFileBackend"
    EMAIL_FILE_PATH = str(VAR_DIR / "mail")
# A server that takes a connection and then says nothing holds nobody up for longer.
EMAIL_TIMEOUT = env.int("EMAIL_TIMEOUT", default=10)
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="desk@example.org")

# What a mail system sends along with its reports of bounces and complaints. Without it none are taken by the web.
MAIL_REPORTS_SECRET = env.str("MAIL_REPORTS_SECRET", default="")

# Where text messages go, as JSON by POST with a bearer token. Without it: into files, where mail goes into files too.
TEXT_GATEWAY_URL = env.str("TEXT_GATEWAY_URL", default="")
TEXT_GATEWAY_TOKEN = env.str("TEXT_GATEWAY_TOKEN", default="")
TEXT_GATEWAY_TIMEOUT = env.int("TEXT_GATEWAY_TIMEOUT", default=10)

# Without a broker tasks wait as files in VAR_DIR, for the worker that ``manage.py serve`` starts.
CELERY_BROKER_URL = env.str("CELERY_BROKER_URL", default="") or "filesystem://localhost"
# Whether the broker is this machine's own, and only its own worker listens: the embedded size.
IS_OWN_BROKER = CELERY_BROKER_URL.startswith("filesystem://")
if IS_OWN_BROKER:
    QUEUE_DIR = VAR_DIR / "queue"
    (QUEUE_DIR / "tasks").mkdir(parents=True, exist_ok=True, mode=0o700)
    CELERY_BROKER_TRANSPORT = "config.task_files:Transport"
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(QUEUE_DIR / "tasks"),
        "data_folder_out": str(QUEUE_DIR / "tasks"),
        "control_folder": str(QUEUE_DIR / "control"),
        "polling_interval": 0.3,
    }
# A worker of a broker starts only where mail and links would reach customers, see config/deployment.py.
WORKERS_NEED_DEPLOYMENT = env.bool("WORKERS_NEED_DEPLOYMENT", default=not IS_OWN_BROKER)
# A small shop's worker reads at once what the event log tells; in a large one beat's scans see to many together.
NUDGE_ON_EVENTS = IS_OWN_BROKER
# A worker at long work says so this often twice; what nobody has said for so long is taken up by another.
WORK_LEASE_SECONDS = env.int("WORK_LEASE_SECONDS", default=60)
CELERY_TASK_EAGER_PROPAGATES = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
# How many tasks share one recompute; more than there are worker processes gains nothing.
RECOMPUTE_WORKERS = env.int("RECOMPUTE_WORKERS", default=2)
# How many workers send at once where many messages wait.
SEND_WORKERS = env.int("SEND_WORKERS", default=2)
CELERY_BEAT_SCHEDULE = {
    # A row with a due time is the truth; these short scans only look for such rows.
    "send-due-messages": {
        "task": "notifications.send_due_messages",
        "schedule": env.float("SEND_SCAN_SECONDS", default=20),
    },
    "free-lapsed-leases": {"task": "notifications.free_lapsed_leases", "schedule": 60.0},
    "write-invitations": {"task": "notifications.write_invitations", "schedule": 60.0},
    "write-follow-ups": {"task": "notifications.write_follow_ups", "schedule": 900.0},
    "write-due-reminders": {"task": "notifications.write_due_reminders", "schedule": 3600.0},
    "erase-what-is-old": {"task": "notifications.erase_what_is_old", "schedule": 86400.0},
    "tell-log-checkpoint": {"task": "notifications.send_log_checkpoint", "schedule": crontab(hour=1, minute=40)},
    "note-material-uses": {"task": "treatments.note_material_uses", "schedule": 300.0},
    # Counts once a day, and what somebody asked for that a lost task left uncounted.
    "count-reports": {"task": "claims.count_reports_when_due", "schedule": WORK_LEASE_SECONDS / 2},
    "resume-season-plans": {"task": "scheduling.resume_season_plans", "schedule": WORK_LEASE_SECONDS / 2},
    "book-season-proposals": {"task": "scheduling.book_season_proposals", "schedule": WORK_LEASE_SECONDS / 2},
    "recompute-due-items": {"task": "scheduling.recompute_due_items", "schedule": 300.0},
}

# How often customers' links may be used, counted in each process: all of them from one address, and any one of them.
LINK_USES_FROM_AN_ADDRESS = env.str("LINK_USES_FROM_AN_ADDRESS", default="600/hour")
LINK_USES_OF_A_LINK = env.str("LINK_USES_OF_A_LINK", default="200/hour")
# How many hours before a visit its customer may still move or cancel it through the link; later it takes a call.
CUSTOMER_CHANGES_UNTIL_HOURS = env.int("CUSTOMER_CHANGES_UNTIL_HOURS", default=24)

# After how many days personal data go by themselves, each night; 0: never. How long they may and must be kept the law
# says, not this program. `manage.py personal_data register` prints what each of them is about.
PEOPLE_KEPT_DAYS = env.int("PEOPLE_KEPT_DAYS", default=0)
MESSAGES_KEPT_DAYS = env.int("MESSAGES_KEPT_DAYS", default=730)
MAIL_FILES_KEPT_DAYS = env.int("MAIL_FILES_KEPT_DAYS", default=90)
CLAIMS_KEPT_DAYS = env.int("CLAIMS_KEPT_DAYS", default=3653)
# A tablet keeps what was typed for less (KEPT_DAYS in kept.js).
PHOTOS_WAIT_DAYS = env.int("PHOTOS_WAIT_DAYS", default=30)

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.authentication.LimitedTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.UserRateThrottle"],
    # Of one person, counted in each process.
    "DEFAULT_THROTTLE_RATES": {"user": env.str("API_CALLS_OF_A_PERSON", default="1200/min")},
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_PAGINATION_CLASS": "api.pagination.CursorPages",
    "EXCEPTION_HANDLER": "api.problems.answer_problem",
    "PAGE_SIZE": 50,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Rust protection record",
    "DESCRIPTION": "Read-only reports on treated vehicles, their cover, what is due, and claims.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
}

SECURE_CONTENT_TYPE_NOSNIFF = True
# Only the desk's own files: no script, style or picture inside a page or from another host.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "blob:"],  # blob: a photo that was chosen and is not sent yet
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "worker-src": ["'self'"],
        "manifest-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
    }
}
X_FRAME_OPTIONS = "DENY"
BEHIND_HTTPS = env.bool("BEHIND_HTTPS", default=False)
if BEHIND_HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SECURE_HSTS_SECONDS = 31_536_000

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{levelname} {name} {message}", "style": "{"}},
    "filters": {"requests": {"()": "config.log_lines.RequestLines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["requests"]}},
    "root": {"handlers": ["stderr"], "level": env.str("LOG_LEVEL", default="WARNING")},
}
