"""Everything of Linnet that touches the world: storage, rights, routes, pictures, commands."""
