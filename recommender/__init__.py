"""Orchardwright: which fruit varieties suit a site, from open evidence and the site's climate."""
