"""What alembic runs to bring a database to the newest revision; `upgrade` hands it an open connection."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
