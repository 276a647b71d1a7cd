/* A disk that fails or is watched, put before the C library with LD_PRELOAD.
 *
 * Calls that change files whose path contains DISK_SHIM_PATH are counted in a table shared with the test (DISK_SHIM_TABLE,
 * a file of eight 64-bit words, mapped). With `fail_from` set, calls number fail_from to fail_to - 1 fail with `error`; a write that
 * fails with ENOSPC first writes half, as disks that become full do. With DISK_SHIM_LOG set, each call that succeeded is
 * appended to that file: a header of four 64-bit words (kind, length of the path, offset, length) and path and bytes.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

enum { COUNT, FAIL_FROM, FAIL_TO, ERROR, FAILED, LOGGED };
enum kind { WRITE = 1, SYNC = 2, TRUNCATE = 3, REMOVE = 4 };

static volatile uint64_t *table;
static const char *watched;
static int log_fd = -1;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

static ssize_t (*real_write)(int, const void *, size_t);
static ssize_t (*real_pwrite)(int, const void *, size_t, off_t);
static int (*real_fsync)(int);
static int (*real_fdatasync)(int);
static int (*real_ftruncate)(int, off_t);
static int (*real_unlink)(const char *);

__attribute__((constructor)) static void begin(void) {
    real_write = dlsym(RTLD_NEXT, "write");
    real_pwrite = dlsym(RTLD_NEXT, "pwrite64");
    real_fsync = dlsym(RTLD_NEXT, "fsync");
    real_fdatasync = dlsym(RTLD_NEXT, "fdatasync");
    real_ftruncate = dlsym(RTLD_NEXT, "ftruncate64");
    real_unlink = dlsym(RTLD_NEXT, "unlink");
    watched = getenv("DISK_SHIM_PATH");
    const char *table_path = getenv("DISK_SHIM_TABLE"), *log_path = getenv("DISK_SHIM_LOG");
    if (!watched || !table_path) return;
    int fd = open(table_path, O_RDWR);
    if (fd < 0) return;
    void *mapped = mmap(NULL, 64, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    close(fd);
    if (mapped == MAP_FAILED) return;
    if (log_path) log_fd = open(log_path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    table = mapped;
}

/* The path behind a descriptor, if it is watched. */
static int is_watched(int fd, char *path, size_t size) {
    if (!table) return 0;
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, size - 1);
    if (length < 0) return 0;
    path[length] = 0;
    /* The shared-memory index is rebuilt after a crash, and is mapped anyway. */
    return strstr(path, watched) && !strstr(path, "-shm");
}

/* Whether this call is one that fails; errno is set. Called with the lock. */
static int fails(void) {
    uint64_t number = table[COUNT]++;
    if (number < table[FAIL_FROM] || number >= table[FAIL_TO]) return 0;
    table[FAILED]++;
    errno = (int)table[ERROR];
    return 1;
}

static void note(enum kind kind, const char *path, uint64_t offset, const void *bytes, uint64_t length) {
    if (log_fd < 0) return;
    uint64_t head[4] = {kind, strlen(path), offset, length};
    struct iovec parts[3] = {{head, sizeof head}, {(void *)path, head[1]}, {(void *)bytes, bytes ? length : 0}};
    ssize_t written = writev(log_fd, parts, 3);
    if (written > 0) table[LOGGED] += (uint64_t)written;
}

static ssize_t put(int fd, const void *bytes, size_t length, off_t offset, int is_placed) {
    char path[4096];
    if (!is_watched(fd, path, sizeof path))
        return is_placed ? real_pwrite(fd, bytes, length, offset) : real_write(fd, bytes, length);
    pthread_mutex_lock(&lock);
    ssize_t done = -1;
    off_t at = is_placed ? offset : lseek(fd, 0, SEEK_CUR);
    if (fails()) {
        int error = errno;
        if (error == ENOSPC && length > 1) {
            done = is_placed ? real_pwrite(fd, bytes, length / 2, offset) : real_write(fd, bytes, length / 2);
            if (done > 0) note(WRITE, path, (uint64_t)at, bytes, (uint64_t)done);
            /* What follows of the same write finds no room at all. */
            table[FAIL_TO]++;
        }
        errno = error;
    } else {
        done = is_placed ? real_pwrite(fd, bytes, length, offset) : real_write(fd, bytes, length);
        if (done > 0) note(WRITE, path, (uint64_t)at, bytes, (uint64_t)done);
    }
    pthread_mutex_unlock(&lock);
    return done;
}

ssize_t write(int fd, const void *bytes, size_t length) { return put(fd, bytes, length, 0, 0); }
ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset) { return put(fd, bytes, length, offset, 1); }
ssize_t pwrite64(int fd, const void *bytes, size_t length, off_t offset) { return put(fd, bytes, length, offset, 1); }

static int sync_with(int (*real)(int), int fd) {
    char path[4096];
    if (!is_watched(fd, path, sizeof path)) return real(fd);
    pthread_mutex_lock(&lock);
    int done = fails() ? -1 : real(fd);
    if (done == 0) note(SYNC, path, 0, NULL, 0);
    pthread_mutex_unlock(&lock);
    return done;
}

int fsync(int fd) { return sync_with(real_fsync, fd); }
int fdatasync(int fd) { return sync_with(real_fdatasync, fd); }

static int cut(int fd, off_t length) {
    char path[4096];
    if (!is_watched(fd, path, sizeof path)) return real_ftruncate(fd, length);
    pthread_mutex_lock(&lock);
    int done = fails() ? -1 : real_ftruncate(fd, length);
    if (done == 0) note(TRUNCATE, path, (uint64_t)length, NULL, 0);
    pthread_mutex_unlock(&lock);
    return done;
}

int ftruncate(int fd, off_t length) { return cut(fd, length); }
int ftruncate64(int fd, off_t length) { return cut(fd, length); }

int unlink(const char *path) {
    int done = real_unlink(path);
    if (done == 0 && table && strstr(path, watched)) {
        pthread_mutex_lock(&lock);
        note(REMOVE, path, 0, NULL, 0);
        pthread_mutex_unlock(&lock);
    }
    return done;
}
