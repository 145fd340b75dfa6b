// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.IOException;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.nio.file.FileVisitResult;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.SimpleFileVisitor;
import java.nio.file.attribute.BasicFileAttributes;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import java.util.concurrent.TimeUnit;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * A PostgreSQL server of the tests' own, on the loopback address, which can be killed and started
 * again. PostgreSQL refuses to be root: there it runs as the user {@code postgres}.
 */
public final class PostgresServer implements AutoCloseable {
  private static final String SUPERUSER = "cistern";
  private static @Nullable PostgresServer shared;

  private final Path folder;
  private final Path programs;
  private final int port;

  private PostgresServer(Path folder, Path programs, int port) {
    this.folder = folder;
    this.programs = programs;
    this.port = port;
  }

  /** One for all tests of this process that do not break it. */
  public static synchronized PostgresServer shared() {
    PostgresServer server = shared;
    if (server == null) {
      server = start();
      shared = server;
      Runtime.getRuntime().addShutdownHook(new Thread(server::close, "stop-postgresql"));
    }
    return server;
  }

  /** One of the caller's own. */
  public static PostgresServer start() {
    try {
      // Not in a test's own folder, which the other user cannot enter.
      Path folder = Files.createTempDirectory("cistern-postgresql-");
      PostgresServer server = new PostgresServer(folder, programs(), freePort());
      if (isRoot()) {
        server.run(List.of("chown", "postgres", folder.toString()));
      }
      server.run(
          server.asServer(
              "initdb",
              "-D",
              server.data(),
              "-U",
              SUPERUSER,
              "--auth=trust",
              "-E",
              "UTF8",
              "--locale=C.UTF-8",
              "--no-sync"));
      server.startAgain();
      return server;
    } catch (IOException e) {
      throw new IllegalStateException("PostgreSQL could not be started for the tests", e);
    }
  }

  private static Path programs() throws IOException {
    try (Stream<Path> versions =
        Files.isDirectory(Path.of("/usr/lib/postgresql"))
            ? Files.list(Path.of("/usr/lib/postgresql"))
            : Stream.of()) {
      return versions
          .map(version -> version.resolve("bin"))
          .filter(bin -> Files.isExecutable(bin.resolve("initdb")))
          .max(Path::compareTo)
          .orElseThrow(
              () ->
                  new IllegalStateException(
                      "PostgreSQL's programs are missing; install Debian's package postgresql"));
    }
  }

  private static boolean isRoot() {
    return "root".equals(System.getProperty("user.name"));
  }

  private static int freePort() throws IOException {
    try (ServerSocket socket = new ServerSocket(0, 1, InetAddress.getLoopbackAddress())) {
      return socket.getLocalPort();
    }
  }

  private String data() {
    return folder.resolve("data").toString();
  }

  private List<String> asServer(String program, String... arguments) {
    List<String> command = new ArrayList<>();
    if (isRoot()) {
      command.addAll(
          List.of("setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups", "--"));
    }
    command.add(programs.resolve(program).toString());
    command.addAll(List.of(arguments));
    return command;
  }

  private void run(List<String> command) throws IOException {
    Path log = folder.resolveSibling(folder.getFileName() + ".log");
    Process process =
        new ProcessBuilder(command)
            .redirectErrorStream(true)
            .redirectOutput(ProcessBuilder.Redirect.appendTo(log.toFile()))
            .start();
    try {
      if (!process.waitFor(60, TimeUnit.SECONDS) || process.exitValue() != 0) {
        throw new IOException(command.get(command.size() - 1) + ": " + Files.readString(log));
      }
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      throw new IOException("interrupted", e);
    }
  }

  /** Starts it where it stands still, and waits until it takes connections. */
  public void startAgain() {
    try {
      run(
          asServer(
              "pg_ctl",
              "-D",
              data(),
              "-w",
              "-t",
              "50",
              "-l",
              folder.resolve("server.log").toString(),
              "-o",
              "-p "
                  + port
                  + " -c listen_addresses=127.0.0.1 -c unix_socket_directories=''"
                  + " -c max_connections=200 -c shared_buffers=64MB",
              "start"));
    } catch (IOException e) {
      throw new IllegalStateException("PostgreSQL could not be started again", e);
    }
  }

  /** {@code kill -9} of the whole server. */
  public void kill() {
    try {
      long pid =
          Long.parseLong(
              Files.readAllLines(folder.resolve("data").resolve("postmaster.pid")).get(0).strip());
      ProcessHandle postmaster = ProcessHandle.of(pid).orElseThrow();
      List<ProcessHandle> all = new ArrayList<>(postmaster.descendants().toList());
      all.add(postmaster);
      all.forEach(ProcessHandle::destroyForcibly);
      for (ProcessHandle each : all) {
        each.onExit().get(20, TimeUnit.SECONDS);
      }
      Files.deleteIfExists(folder.resolve("data").resolve("postmaster.pid"));
    } catch (Exception e) {
      throw new IllegalStateException("PostgreSQL could not be killed", e);
    }
  }

  /** Stops it as at a shutdown in a hurry: connections break off, nothing is written any more. */
  public void stopAtOnce() {
    try {
      run(asServer("pg_ctl", "-D", data(), "-m", "immediate", "-w", "stop"));
    } catch (IOException e) {
      throw new IllegalStateException("PostgreSQL could not be stopped", e);
    }
  }

  /** The address of a store of its own: made where it is not there yet. */
  public String store(String name) {
    try (Connection connection = DriverManager.getConnection(url("postgres"));
        Statement statement = connection.createStatement()) {
      statement.execute("CREATE SCHEMA IF NOT EXISTS " + name);
    } catch (SQLException e) {
      throw new IllegalStateException("the schema " + name + " could not be made", e);
    }
    return url("postgres") + "&currentSchema=" + name;
  }

  private String url(String database) {
    return "jdbc:postgresql://127.0.0.1:" + port + "/" + database + "?user=" + SUPERUSER;
  }

  /** Runs statements as the server's superuser, each for itself. */
  public void does(String... statements) throws SQLException {
    try (Connection connection = DriverManager.getConnection(url("postgres"));
        Statement statement = connection.createStatement()) {
      for (String each : statements) {
        statement.execute(each);
      }
    }
  }

  /** What a setting of the server is for a new connection. */
  public String setting(String name) throws SQLException {
    try (Connection connection = DriverManager.getConnection(url("postgres"));
        Statement statement = connection.createStatement();
        ResultSet found = statement.executeQuery("SHOW " + name)) {
      found.next();
      return found.getString(1);
    }
  }

  /** From now on a user has to say a password; the connections that he has go on. */
  public void askPasswordOf(String user) throws IOException, SQLException {
    Path rules = folder.resolve("data").resolve("pg_hba.conf");
    Files.writeString(
        rules, "host all " + user + " 127.0.0.1/32 scram-sha-256\n" + Files.readString(rules));
    does("SELECT pg_reload_conf()");
  }

  /** The address of a schema for a user who has to be named beside it. */
  public String address(String schema) {
    return "jdbc:postgresql://127.0.0.1:" + port + "/postgres?currentSchema=" + schema;
  }

  /** The port on the loopback address. */
  public int port() {
    return port;
  }

  @Override
  public void close() {
    try {
      if (Files.exists(folder.resolve("data").resolve("postmaster.pid"))) {
        stopAtOnce();
      }
      delete(folder);
      Files.deleteIfExists(folder.resolveSibling(folder.getFileName() + ".log"));
    } catch (IOException e) {
      throw new IllegalStateException("PostgreSQL's folder could not be taken away", e);
    }
  }

  private static void delete(Path folder) throws IOException {
    Files.walkFileTree(
        folder,
        new SimpleFileVisitor<>() {
          @Override
          public FileVisitResult visitFile(Path file, BasicFileAttributes attributes)
              throws IOException {
            Files.delete(file);
            return FileVisitResult.CONTINUE;
          }

          @Override
          public FileVisitResult postVisitDirectory(Path each, @Nullable IOException failure)
              throws IOException {
            if (failure != null) {
              throw failure;
            }
            Files.delete(Objects.requireNonNull(each));
            return FileVisitResult.CONTINUE;
          }
        });
  }
}
