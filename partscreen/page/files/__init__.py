"""Files on the page: brought, understood, put right."""
