"""Drafting in the background: what is handed in becomes a draft, whatever process dies on the way."""
