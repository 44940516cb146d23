"""What Alembic runs: the steps over the connection it is handed, inside the transaction already begun."""

from alembic import context

from photonest.catalogue.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
