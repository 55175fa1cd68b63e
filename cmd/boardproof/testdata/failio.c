/* Lets the n-th of the calls by which SQLite writes fail, counted from 1:
 * FAILIO_N is n, FAILIO_ERRNO the error (28 no space left, 5 I/O error),
 * FAILIO_STICKS, where set, lets every later one fail too, as on a full disk.
 * FAILIO_LOG gets a line with the name of the call that failed. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static long calls;

static int fails(const char *what)
{
	const char *n = getenv("FAILIO_N"), *e = getenv("FAILIO_ERRNO"), *log = getenv("FAILIO_LOG");
	if (!n)
		return 0;
	long now = __sync_add_and_fetch(&calls, 1), at = atol(n);
	if (now != at && !(getenv("FAILIO_STICKS") && now > at))
		return 0;
	if (log && now == at) {
		int (*real_open)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
		ssize_t (*real_write)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
		int fd = real_open(log, O_WRONLY | O_CREAT | O_APPEND, 0644);
		if (fd >= 0) {
			if (real_write(fd, what, strlen(what)) < 0) {}
			close(fd);
		}
	}
	errno = e ? atoi(e) : EIO;
	return 1;
}

#define REAL(name) __typeof__(&name) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t pwrite64(int fd, const void *b, size_t n, off64_t at)
{
	REAL(pwrite64);
	if (fails("pwrite")) {
		int was = errno;
		if (n > 1)
			real(fd, b, n / 2, at); /* a torn page */
		errno = was;
		return -1;
	}
	return real(fd, b, n, at);
}

ssize_t pwrite(int fd, const void *b, size_t n, off_t at) { return pwrite64(fd, b, n, at); }
int fsync(int fd) { REAL(fsync); return fails("fsync") ? -1 : real(fd); }
int fdatasync(int fd) { REAL(fdatasync); return fails("fdatasync") ? -1 : real(fd); }
int ftruncate64(int fd, off64_t n) { REAL(ftruncate64); return fails("ftruncate") ? -1 : real(fd, n); }
int ftruncate(int fd, off_t n) { return ftruncate64(fd, n); }
int fallocate64(int fd, int m, off64_t a, off64_t n) { REAL(fallocate64); return fails("fallocate") ? -1 : real(fd, m, a, n); }
