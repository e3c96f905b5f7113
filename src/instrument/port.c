/* port.c - serial lines by termios, and TCP. Both never block.
**
** A pseudo-terminal is a serial line like any other. Addresses are numbers: a name would have to be
** looked up, and that blocks.
*/
#include "instrument_internal.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

static const struct {
  int baud;
  speed_t speed;
} speeds[] = {
    {50, B50},         {75, B75},     {110, B110},   {134, B134},     {150, B150},
    {200, B200},       {300, B300},   {600, B600},   {1200, B1200},   {1800, B1800},
    {2400, B2400},     {4800, B4800}, {9600, B9600}, {19200, B19200}, {38400, B38400},
#ifdef B57600
    {57600, B57600},
#endif
#ifdef B115200
    {115200, B115200},
#endif
#ifdef B230400
    {230400, B230400},
#endif
#ifdef B460800
    {460800, B460800},
#endif
#ifdef B921600
    {921600, B921600},
#endif
};

static speed_t speed_of(int baud) {
  for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++) {
    if (speeds[i].baud == baud) return speeds[i].speed;
  }
  return B0;
}

int lw_baud_known(int baud) {
  return speed_of(baud) != B0;
}

bool lw_bits_known(const char *bits) {
  return strlen(bits) == 3 && strchr("78", bits[0]) && strchr("NEO", bits[1]) &&
         strchr("12", bits[2]);
}

/* ---- serial lines ---- */

/* Bytes as they come: no echo, no line editing, no flow control, no signals. */
static bool set_line(int fd, const lw_instrument *i) {
  struct termios t;
  if (tcgetattr(fd, &t) != 0) return false;
  t.c_iflag = IGNBRK | IGNPAR;
  t.c_oflag = 0;
  t.c_lflag = 0;
  t.c_cflag = CREAD | CLOCAL | (i->bits[0] == '7' ? CS7 : CS8);
  if (i->bits[1] != 'N') t.c_cflag |= PARENB;
  if (i->bits[1] != 'N') t.c_iflag = IGNBRK | INPCK; /* a byte of wrong parity reads as 0 */
  if (i->bits[1] == 'O') t.c_cflag |= PARODD;
  if (i->bits[2] == '2') t.c_cflag |= CSTOPB;
  t.c_cc[VMIN] = 1; /* nothing there is EAGAIN, not 0, which means hung up */
  t.c_cc[VTIME] = 0;
  speed_t speed = speed_of(i->baud);
  if (cfsetispeed(&t, speed) != 0 || cfsetospeed(&t, speed) != 0) return false;
  return tcsetattr(fd, TCSANOW, &t) == 0;
}

static lw_status refuse(const char *where, int fd, lw_error *error, const char *what) {
  int why = errno;
  if (fd >= 0) close(fd);
  return lw_fail(error, LW_IO, "%.100s %s: %s", where, what, strerror(why));
}

static lw_status open_line(const lw_instrument *i, plug *out, lw_error *error) {
  int fd = open(i->port, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (fd < 0) return refuse(i->port, fd, error, "cannot be opened");
  if (!isatty(fd)) {
    close(fd);
    return lw_fail(error, LW_IO, "%.100s is no serial line", i->port);
  }
  if (!set_line(fd, i)) return refuse(i->port, fd, error, "cannot be set up");
#ifdef TIOCEXCL
  (void)ioctl(fd, TIOCEXCL); /* nobody else shall take bytes away */
#endif
  (void)tcflush(fd, TCIFLUSH); /* what waits there is old */
  out->fd = fd;
  out->connecting = false;
  return LW_OK;
}

/* ---- TCP ---- */

static bool address_of(const char *text, struct sockaddr_storage *to, socklen_t *length) {
  char host[64];
  const char *colon = strrchr(text, ':');
  size_t n = colon ? (size_t)(colon - text) : 0;
  if (!n || n >= sizeof host) return false;
  bool brackets = text[0] == '[' && text[n - 1] == ']';
  snprintf(host, sizeof host, "%.*s", (int)(brackets ? n - 2 : n), text + brackets);
  if (strcmp(host, "localhost") == 0) snprintf(host, sizeof host, "127.0.0.1");
  unsigned long number = strtoul(colon + 1, NULL, 10);
  if (number == 0 || number > 65535) return false;
  struct sockaddr_in *v4 = (struct sockaddr_in *)(void *)to;
  struct sockaddr_in6 *v6 = (struct sockaddr_in6 *)(void *)to;
  memset(to, 0, sizeof *to);
  if (inet_pton(AF_INET, host, &v4->sin_addr) == 1) {
    v4->sin_family = AF_INET;
    v4->sin_port = htons((uint16_t)number);
    *length = sizeof *v4;
    return true;
  }
  if (inet_pton(AF_INET6, host, &v6->sin6_addr) != 1) return false;
  v6->sin6_family = AF_INET6;
  v6->sin6_port = htons((uint16_t)number);
  *length = sizeof *v6;
  return true;
}

static lw_status open_network(const lw_instrument *i, plug *out, lw_error *error) {
  struct sockaddr_storage to;
  socklen_t length = 0;
  if (!address_of(i->port, &to, &length)) {
    return lw_fail(error, LW_BAD_INPUT,
                   "'%.60s' is no address; write numbers, such as 192.168.1.20:502", i->port);
  }
  int fd = socket(to.ss_family, SOCK_STREAM, 0);
  if (fd < 0) return refuse(i->port, fd, error, "cannot be reached");
  if (fcntl(fd, F_SETFD, FD_CLOEXEC) != 0 || fcntl(fd, F_SETFL, O_NONBLOCK) != 0)
    return refuse(i->port, fd, error, "cannot be set up");
  int done = connect(fd, (struct sockaddr *)&to, length);
  if (done != 0 && errno != EINPROGRESS) return refuse(i->port, fd, error, "cannot be reached");
  out->fd = fd;
  out->connecting = done != 0;
  return LW_OK;
}

lw_status lw_port_connected(plug *p, lw_error *error) {
  int why = 0;
  socklen_t length = sizeof why;
  if (getsockopt(p->fd, SOL_SOCKET, SO_ERROR, &why, &length) != 0) why = errno;
  if (why != 0) return lw_fail(error, LW_IO, "cannot be reached: %s", strerror(why));
  p->connecting = false;
  return LW_OK;
}

/* ---- either ---- */

lw_status lw_port_open(const lw_instrument *i, plug *out, lw_error *error) {
  if (!i->port) {
    return lw_fail(error, LW_BAD_INPUT, "no port is named for '%.60s'; write 'port: /dev/ttyUSB0'",
                   i->name);
  }
  return i->port[0] == '/' ? open_line(i, out, error) : open_network(i, out, error);
}

void lw_port_close(plug *p) {
#ifdef TIOCNXCL
  if (p->fd >= 0) (void)ioctl(p->fd, TIOCNXCL); /* who has it open besides keeps the line alive */
#endif
  if (p->fd >= 0) close(p->fd);
  p->fd = -1;
  p->connecting = false;
}
