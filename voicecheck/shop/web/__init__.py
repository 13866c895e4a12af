"""The pages: routes, forms, templates."""
