"""For all tests: nothing is written into the configuration folder of whoever runs them."""

import pytest


@pytest.fixture(autouse=True, scope="session")
def _own_configuration_folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("config")
        patch.setenv("XDG_CONFIG_HOME", str(folder))
        patch.setattr("platformdirs.user_config_path", lambda name="", *_, **__: folder / name)
        yield
