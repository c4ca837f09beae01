"""Tests that look at the desk as people do: in a browser, against a server of this process."""
