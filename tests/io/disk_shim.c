/* Preloaded into a process, makes the disk under its journals slow or broken.
 *
 * A control file, named by DISK_SHIM_CONTROL and read at every call, holds three numbers: the
 * milliseconds that each fsync takes, the errno that each fsync fails with, and the errno that
 * each write fails with; 0 for none. Every fsync is counted by one byte appended to the file
 * "<control>.syncs". Only files with ".journal" in their path are touched.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

struct control {
    int sync_ms;
    int sync_errno;
    int write_errno;
};

static int is_journal(int fd) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = '\0';
    return strstr(path, ".journal") != NULL;
}

static struct control read_control(void) {
    struct control control = {0, 0, 0};
    const char *path = getenv("DISK_SHIM_CONTROL");
    FILE *file = path ? fopen(path, "r") : NULL;
    if (file) {
        if (fscanf(file, "%d %d %d", &control.sync_ms, &control.sync_errno,
                   &control.write_errno) != 3)
            control = (struct control){0, 0, 0};
        fclose(file);
    }
    return control;
}

static void count_sync(void) {
    char path[4096];
    snprintf(path, sizeof path, "%s.syncs", getenv("DISK_SHIM_CONTROL"));
    FILE *file = fopen(path, "a");
    if (file) {
        fputc('.', file);
        fclose(file);
    }
}

static int sync_or_fail(int fd, const char *name) {
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, name);
    if (!is_journal(fd)) return real(fd);
    struct control control = read_control();
    count_sync();
    struct timespec wait = {control.sync_ms / 1000, (control.sync_ms % 1000) * 1000000L};
    nanosleep(&wait, NULL);
    if (control.sync_errno) {
        errno = control.sync_errno;
        return -1;
    }
    return real(fd);
}

static int write_fails(int fd) {
    if (!is_journal(fd)) return 0;
    struct control control = read_control();
    if (control.write_errno) errno = control.write_errno;
    return control.write_errno != 0;
}

int fsync(int fd) { return sync_or_fail(fd, "fsync"); }

int fdatasync(int fd) { return sync_or_fail(fd, "fdatasync"); }

ssize_t write(int fd, const void *data, size_t size) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = (ssize_t (*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    return write_fails(fd) ? -1 : real(fd, data, size);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
    static ssize_t (*real)(int, const void *, size_t, off_t);
    if (!real) real = (ssize_t (*)(int, const void *, size_t, off_t))dlsym(RTLD_NEXT, "pwrite");
    return write_fails(fd) ? -1 : real(fd, data, size, at);
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    static ssize_t (*real)(int, const void *, size_t, off64_t);
    if (!real)
        real = (ssize_t (*)(int, const void *, size_t, off64_t))dlsym(RTLD_NEXT, "pwrite64");
    return write_fails(fd) ? -1 : real(fd, data, size, at);
}
