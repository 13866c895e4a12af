"""The shop's server: pages, work, people."""
