"""Papers as PDF: one file a paper prepares plain data, one template lays it out. User text never becomes markup."""
