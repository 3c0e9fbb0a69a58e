"""What every HTTP answer shares: problems, paging, and one request as one transaction."""
