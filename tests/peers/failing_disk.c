/* A disk that fails as it is told: laid over the system's calls of a program (LD_PRELOAD) for files whose path contains
 * the text in BENCH_DISK_OF. The file named in BENCH_DISK holds five numbers' worth of text:
 *
 *     SERIAL CALL ERRNO FROM TIMES
 *
 * CALL is write, sync, open or all; from the FROM-th such call on it fails with ERRNO, TIMES times (0: for ever). A new
 * SERIAL counts anew. An empty file is a healthy disk. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static long serial = -1, seen = 0;

static int ours(const char *path) {
    const char *of = getenv("BENCH_DISK_OF");
    return of && strstr(path, of) != NULL;
}

static int ours_fd(int fd) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = syscall(SYS_readlink, link, path, sizeof path - 1);
    if (n < 0) return 0;
    path[n] = 0;
    return ours(path);
}

/* The errno this call is to fail with, or 0. */
static int fails(const char *call) {
    const char *control = getenv("BENCH_DISK");
    if (!control) return 0;
    int fd = syscall(SYS_openat, AT_FDCWD, control, O_RDONLY);
    if (fd < 0) return 0;
    char text[128];
    ssize_t n = syscall(SYS_read, fd, text, sizeof text - 1);
    syscall(SYS_close, fd);
    if (n <= 0) return 0;
    text[n] = 0;
    long new_serial, code, from, times;
    char which[16];
    if (sscanf(text, "%ld %15s %ld %ld %ld", &new_serial, which, &code, &from, &times) != 5) return 0;
    if (strcmp(which, call) != 0 && strcmp(which, "all") != 0) return 0;
    pthread_mutex_lock(&lock);
    if (new_serial != serial) {
        serial = new_serial;
        seen = 0;
    }
    seen++;
    int hit = seen >= from && (times == 0 || seen < from + times);
    pthread_mutex_unlock(&lock);
    return hit ? (int)code : 0;
}

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, #name)
#define FAIL(call, mine) \
    if (mine) { \
        int code = fails(call); \
        if (code) { errno = code; return -1; } \
    }

ssize_t write(int fd, const void *p, size_t n) {
    REAL(ssize_t, write, int, const void *, size_t);
    FAIL("write", ours_fd(fd));
    return real(fd, p, n);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t at) {
    REAL(ssize_t, pwrite, int, const void *, size_t, off_t);
    FAIL("write", ours_fd(fd));
    return real(fd, p, n, at);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at) {
    REAL(ssize_t, pwrite64, int, const void *, size_t, off64_t);
    FAIL("write", ours_fd(fd));
    return real(fd, p, n, at);
}

int ftruncate(int fd, off_t n) {
    REAL(int, ftruncate, int, off_t);
    FAIL("write", ours_fd(fd));
    return real(fd, n);
}

int ftruncate64(int fd, off64_t n) {
    REAL(int, ftruncate64, int, off64_t);
    FAIL("write", ours_fd(fd));
    return real(fd, n);
}

int fsync(int fd) {
    REAL(int, fsync, int);
    FAIL("sync", ours_fd(fd));
    return real(fd);
}

int fdatasync(int fd) {
    REAL(int, fdatasync, int);
    FAIL("sync", ours_fd(fd));
    return real(fd);
}

/* Only opening for writing fails, as on a file system mounted read-only. */
int open(const char *path, int flags, ...) {
    REAL(int, open, const char *, int, ...);
    va_list more;
    va_start(more, flags);
    int mode = va_arg(more, int);
    va_end(more);
    FAIL("open", (flags & (O_WRONLY | O_RDWR | O_CREAT)) && ours(path));
    return real(path, flags, mode);
}

int open64(const char *path, int flags, ...) {
    REAL(int, open64, const char *, int, ...);
    va_list more;
    va_start(more, flags);
    int mode = va_arg(more, int);
    va_end(more);
    FAIL("open", (flags & (O_WRONLY | O_RDWR | O_CREAT)) && ours(path));
    return real(path, flags, mode);
}
