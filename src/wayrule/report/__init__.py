"""From the result's types to what a person reads: pages, drawings and tables, as text; nothing here opens a file."""
