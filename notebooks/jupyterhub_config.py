"""One JupyterHub for a course, every person their own Unix user (DEVELOPERS.md, section 9).

Run as root. `OPTICS_HUB` holds the environments `hub`, `learn` and `teach` and the
folder `proxy`; `OPTICS_COURSE` is the course. Whoever is in the Unix group
`instructors` gets the whole package and the course, everybody else the learner's side.
"""

import grp
import os
import pwd
from pathlib import Path

from jupyterhub.spawner import LocalProcessSpawner

c = get_config()  # noqa: F821 (given by JupyterHub)

HUB = Path(os.environ.get("OPTICS_HUB", "/opt/optics-hub"))
COURSE = Path(os.environ.get("OPTICS_COURSE", "/srv/optics/course"))
INSTRUCTORS, LEARNERS = "instructors", "learners"

# What the hub keeps is read by nobody else: its database, its cookies' key.
os.umask(0o077)
STATE = HUB / "state"
STATE.mkdir(mode=0o700, exist_ok=True)
c.JupyterHub.db_url = f"sqlite:///{STATE / 'jupyterhub.sqlite'}"
c.JupyterHub.cookie_secret_file = str(STATE / "cookie_secret")
c.ConfigurableHTTPProxy.command = [str(HUB / "proxy" / "node_modules" / ".bin" / "configurable-http-proxy")]
c.ConfigurableHTTPProxy.pid_file = str(STATE / "proxy.pid")

# By the machine's own passwords; nobody outside the two groups.
c.JupyterHub.authenticator_class = "pam"
c.LocalAuthenticator.allowed_groups = {INSTRUCTORS, LEARNERS}


def _teaches(name: str) -> bool:
    group = grp.getgrnam(INSTRUCTORS).gr_gid
    return group in os.getgrouplist(name, pwd.getpwnam(name).pw_gid)


class OwnSide(LocalProcessSpawner):
    """Start a person's server as that person, with the package of their side."""

    def make_preexec_fn(self, name):
        """Also set what others may do with new files: fellow instructors work on them, nobody reads a learner's."""
        become = super().make_preexec_fn(name)
        teaches = _teaches(name)

        def preexec():
            become()
            os.umask(0o007 if teaches else 0o077)
            if teaches:
                # Formgrader goes by the configuration where its server is started.
                os.chdir(COURSE)

        return preexec


def _choose_side(spawner):
    teaches = _teaches(spawner.user.name)
    programs = HUB / ("teach" if teaches else "learn") / "bin"
    spawner.cmd = [str(programs / "jupyterhub-singleuser")]
    spawner.environment = {"PATH": f"{programs}:/usr/local/bin:/usr/bin:/bin"}
    spawner.notebook_dir = str(COURSE) if teaches else "~"
    if not teaches:
        # The settings of `optics learn`: nbgrader would open formgrader to everybody, on an empty course of their own.
        (settings,) = (HUB / "learn").glob("lib/python3*/site-packages/optics/course/for_learners")
        spawner.environment["JUPYTER_CONFIG_PATH"] = str(settings)


c.JupyterHub.spawner_class = OwnSide
c.Spawner.pre_spawn_hook = _choose_side
# Nothing of root's own environment.
c.Spawner.env_keep = ["LANG", "LC_ALL"]
